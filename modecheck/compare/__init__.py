"""Whether two devices behave alike: labelled systems, their equivalence, and where they differ."""
