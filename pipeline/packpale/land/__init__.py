"""The room that scores the ground: slope, drainage, diggability, suitability, and the land that is usable."""
