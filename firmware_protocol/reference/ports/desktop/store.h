/* The key-value store of the desktop port: in memory, and in a file if one is given. */
#ifndef STORE_H
#define STORE_H

#include "perpend_port.h"

/* Reads the file, which need not exist yet; null: memory alone. False if it makes no sense. */
bool store_open(const char *path);

#endif
