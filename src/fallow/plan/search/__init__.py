"""The question as arrays, the tables' kernels, and better and better plans; what no plan can pass."""
