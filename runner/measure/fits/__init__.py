"""Lines and curves through samples: the instant of a change, a ramp, a relaxation. Each with its standard uncertainty."""
