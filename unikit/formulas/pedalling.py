"""What legs give over cadence, crank angle and time, and where the saddle goes."""
