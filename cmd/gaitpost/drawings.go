package main

import "gaitpost/internal/desk"

// drawings are the pictures of the pages.
func drawings() desk.Drawings { return desk.Drawings{} }
