"""The room that writes: tables, rasters, maps and pages for the people who decide."""
