"""What the bench is: the meters and their accuracy, supply, load and decision rule; nothing here talks to them."""
