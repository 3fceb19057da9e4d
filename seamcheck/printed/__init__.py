"""What is printed on paper: off the path of a photo."""
