"""What comes off the shear: how near to size, how flat, with how much burr."""
