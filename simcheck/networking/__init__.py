"""What a flown ring serves: links between neighbours, coverage, contacts of sites, eclipses."""
