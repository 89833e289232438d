"""The room that draws the fence line: the egg, its fit into the usable land, stations, posts and gates."""
