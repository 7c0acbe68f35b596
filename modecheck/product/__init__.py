"""The model's chips composed: one typed intermediate form that every engine runs on."""
