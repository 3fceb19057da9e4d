"""Finding the printed cards, and what they are like on paper."""
