#include "overlay/snapshot.h"
