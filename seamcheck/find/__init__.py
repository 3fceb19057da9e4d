"""Where things are: stage, centre, lobes, field seams. Places, not numbers."""
