"""Which faults a device survives: the minimal sets that break it, and what each one does."""
