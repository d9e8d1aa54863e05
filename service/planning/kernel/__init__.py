"""The compiled scheduling kernels: arrays in, arrays out."""
