"""What people type and read: numbers, hues, TOML in, CSV out, tables, mistakes in plain words."""
