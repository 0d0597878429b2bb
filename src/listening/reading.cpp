#include "listening/reading.h"
