"""Files of a comparison: the table of changes and the page with the maps side by side."""
