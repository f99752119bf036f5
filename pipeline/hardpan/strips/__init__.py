"""A plan in, the same plan with check strips left in it out."""
