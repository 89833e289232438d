"""Files for who sets the line out: GPX, LandXML, how to peg."""
