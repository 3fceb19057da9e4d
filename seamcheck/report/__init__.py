"""Reports, each a plain function of an Inspection."""
