"""Many tracks: what has to be made, what is made already, and the processes or machines that make it."""
