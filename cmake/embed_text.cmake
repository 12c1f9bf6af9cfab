# Puts a text file into a C++ source, so that what is built needs no file beside it:
#   cmake -D FILE=in.js -D NAME=chart_library -D OUT=out.cpp -P embed_text.cmake
# defines const std::string_view ringtrue::page::NAME.
file(READ ${FILE} bytes HEX)
string(REGEX REPLACE "(................................................)" "\\1;" lines "${bytes}")
set(literal "")
foreach(line IN LISTS lines)
  string(REGEX REPLACE "(..)" "\\\\x\\1" escaped "${line}")
  string(APPEND literal "    \"${escaped}\"\n")
endforeach()
file(WRITE ${OUT} "#include \"page_texts.hpp\"\n\nnamespace ringtrue::page {\nnamespace {\nconstexpr char text[] =\n"
                  "${literal};\n}  // namespace\n\nconst std::string_view ${NAME}{text, sizeof text - 1};\n\n"
                  "}  // namespace ringtrue::page\n")
