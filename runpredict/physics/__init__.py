"""What a glaze is and does: its oxides, its melt, the heat it gets, the film that runs."""
