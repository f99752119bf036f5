"""Whole paddocks on disk, drawn from a seed: files as a consultant would send them, taken through the main job.

`recipe` draws what kind of paddock it is, `build` writes its files, `trial` runs it, `reread` reads the results with
other libraries, and `endings` knows which refusals the recipe has earned. Everything is invented.
"""
