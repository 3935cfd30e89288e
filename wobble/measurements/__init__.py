"""What is measured: kinds of measurements, and the table of them."""
