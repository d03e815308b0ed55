"""The jobs: one file each, a request in, a result out; they print nothing."""
