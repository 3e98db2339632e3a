"""The control protocol: what can be told, what is answered, and how both are written."""
