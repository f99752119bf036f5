"""The files of a pass that was probed afterwards."""
