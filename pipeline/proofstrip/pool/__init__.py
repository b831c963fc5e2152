"""One effect over many trials and seasons."""
