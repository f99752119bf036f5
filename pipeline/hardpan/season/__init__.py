"""Weather and paddocks in; how wet the soil is, and which paddock is ripped when, out."""
