"""The tree of blocks as HTML pages."""
