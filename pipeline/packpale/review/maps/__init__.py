"""The web maps and the still of a plot's map."""
