"""Laws and costs to intervals and visits."""
