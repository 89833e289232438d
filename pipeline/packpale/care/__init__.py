"""The room that thinks of the pack: how long it takes to dig out, and what else decides whether it stays."""
