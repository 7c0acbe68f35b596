"""The page: what it says, how it is stepped and walked, and that it is safe, small and usable."""
