"""report.html: one page for the grower at the top and the researcher below."""
