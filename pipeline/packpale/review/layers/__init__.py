"""GeoPackages and rasters."""
