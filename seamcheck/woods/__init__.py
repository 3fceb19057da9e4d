"""Samples of wood: found in a photo, measured as colour and figure, and held against each other."""
