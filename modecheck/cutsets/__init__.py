"""Which faults a device survives: minimal sets that break something, and what each single one does."""
