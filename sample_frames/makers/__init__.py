"""The makers of the sample scout: places in code, their light by wavelength, cameras, files, truth."""
