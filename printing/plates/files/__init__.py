"""What a plate becomes on disk: the plate file, its parts, its map and the folder they are kept in."""
