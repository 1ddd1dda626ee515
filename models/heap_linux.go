package models

// #include <malloc.h>
import "C"

// largeBlock is the size in bytes from which a block of C memory is a mapping of its own.
const largeBlock = 128 << 10

// tidyHeap keeps large blocks of C memory out of the shared heap, so that what is freed goes back to the system. Opening
// a network reads, converts and repacks its weights; left to itself the C library raises the limit with every such
// block and keeps the holes, a third of the memory of an analysis.
func tidyHeap() { C.mallopt(C.M_MMAP_THRESHOLD, largeBlock) }
