"""Records in, files out; decides nothing agronomic."""
