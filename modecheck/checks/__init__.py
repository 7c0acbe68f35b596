"""What can go wrong in a device: one module for each kind of finding."""
