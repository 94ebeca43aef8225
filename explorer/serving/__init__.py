"""What stands between the network and the pages: who gets in, how much they may send, how long anything waits."""
