"""Maps and soils in, zones a machine can follow out."""
