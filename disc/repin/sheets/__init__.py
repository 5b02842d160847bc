"""The plan on paper: sheets, labels, tables, DXF and the work list."""
