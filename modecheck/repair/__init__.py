"""What would repair a device: small changes, each tried as if it were laid over its files."""
