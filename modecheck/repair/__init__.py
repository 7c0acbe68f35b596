"""What would repair a device: small changes of its files, each tried as if it were laid over them."""
