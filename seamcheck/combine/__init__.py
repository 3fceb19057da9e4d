"""Several photos of one fit: which lobe of one is which of the other, and one result from all."""
