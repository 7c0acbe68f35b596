"""Exploration by zones: all moments at which a state can be, held together as bounds on clocks."""
