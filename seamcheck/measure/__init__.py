"""How much: tips, field seams, gaps. The heart."""
