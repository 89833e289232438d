"""Kinds of columns in the layers of the GeoPackage, as pandas names them."""

TEXT, WHOLE, NUMBER, YES_NO = "object", "Int64", "float64", "bool"
