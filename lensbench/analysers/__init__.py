"""One finding each: arrays in, a typed finding out; no file, no plot, no printing."""
