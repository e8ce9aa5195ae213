"""What the readings say of every fault: likelihoods, doubles, leaks, wrong instruments, history."""
