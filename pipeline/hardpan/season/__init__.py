"""Weather and paddocks in; when the soil is fit, and which paddock is ripped when, out."""
