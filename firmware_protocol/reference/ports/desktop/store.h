/* The key-value store of the desktop port: in memory, and in a file if one is given. */
#ifndef STORE_H
#define STORE_H

#include "perpend_port.h"

/* Reads the file, which need not exist yet, counts its start in it and writes it anew; null: memory
 * alone. Returns what is wrong, null if nothing. */
const char *store_open(const char *path);

/* How often the file was opened; without one, a number from the clock. */
uint32_t store_boot_count(void);

/* Whether the file can be written, by writing it. */
bool store_works(void);

#endif
