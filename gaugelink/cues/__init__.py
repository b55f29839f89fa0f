"""What the maker hears while the eyes are on the cane: bell, tones and voice."""
