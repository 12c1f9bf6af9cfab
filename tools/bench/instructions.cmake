# Counts the instructions of the main job on a small rig (valgrind --tool=callgrind) and fails above a limit:
#     cmake -D VALGRIND=... -D PROGRAM=... -D WORK=... -D LIMIT_MILLIONS=... -P instructions.cmake
# Unlike seconds the count is the same on a busy machine. After a change that is worth its instructions, raise the limit
# in tests/CMakeLists.txt to a tenth above the new count, and say in the commit what they buy.
file(MAKE_DIRECTORY ${WORK})
execute_process(
  COMMAND ${VALGRIND} --tool=callgrind --collect-atstart=no "--toggle-collect=*counted_main_job*"
          --callgrind-out-file=${WORK}/callgrind.out ${PROGRAM}
  RESULT_VARIABLE status OUTPUT_VARIABLE said ERROR_VARIABLE log)
if(NOT status EQUAL 0)
  message(FATAL_ERROR "the main job failed under valgrind (${status}):\n${said}${log}")
endif()
if(NOT log MATCHES "Collected *: *([0-9]+)")
  message(FATAL_ERROR "valgrind did not say how many instructions it counted:\n${log}")
endif()
math(EXPR millions "${CMAKE_MATCH_1} / 1000000")
message(STATUS "${millions} million instructions, limit ${LIMIT_MILLIONS}; profile: callgrind_annotate ${WORK}/callgrind.out")
if(millions LESS 1)
  message(FATAL_ERROR "nothing was counted")
endif()
if(millions GREATER LIMIT_MILLIONS)
  message(FATAL_ERROR "the main job takes ${millions} million instructions, more than ${LIMIT_MILLIONS}")
endif()
