"""Measurements that take too long for the test suite: `python -m benchmarks NAME`."""
