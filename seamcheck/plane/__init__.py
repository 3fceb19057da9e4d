"""Camera and plane: where a point of the top lies in the photo, and how well that is known."""
