"""The tree of blocks as a PDF."""
