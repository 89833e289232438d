"""The bills with live rates."""
