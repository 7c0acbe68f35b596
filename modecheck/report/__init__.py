"""What people and machines read: terminal text and JSON."""
