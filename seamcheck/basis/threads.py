"""One thread for linear algebra: the matrices here are small, and threads that wait for each other take longer than one that works."""

# Read by the libraries when NumPy is first imported.
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
