"""The doors by which orders come in; every one ends in the same `OrderRequest`."""
