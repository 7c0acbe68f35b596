"""What an editor asks about models while they are written, by the Language Server Protocol."""
