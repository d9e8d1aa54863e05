"""What follows: workload, dispatch, backward pass, impact."""
