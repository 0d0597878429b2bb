// The program: everything happens in the command line's run().
#include "app/command_line.h"

int main(int argc, char** argv) { return rankwright::app::run(argc, argv); }
