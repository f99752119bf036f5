"""Many paddocks in, what came of each out: jobs through runners, and sums over paddocks."""
