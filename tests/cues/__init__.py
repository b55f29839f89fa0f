"""What the maker hears."""
