"""The top as a client is shown it: straightened, evenly lit, in its true colours."""
