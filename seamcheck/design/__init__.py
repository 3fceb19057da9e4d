"""What to make: a rose's dimensions from a few wishes, the strips to cut for it, the recess to rout. No drawing, no files."""
