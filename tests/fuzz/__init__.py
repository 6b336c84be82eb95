"""Damaged, hostile and interrupted input, made at random; run for minutes by hand, for seconds in CI."""
