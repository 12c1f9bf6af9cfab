#include "program.hpp"

int main(int argc, char** argv) { return ringtrue::app::run_program(argc, argv); }
