"""One recipe for each input: from its file to the working CRS."""
