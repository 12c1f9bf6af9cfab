# Puts a text file into a C++ source, so that what is built needs no file beside it:
#   cmake -D FILE=in.js -D NAME=chart_library -D OUT=out.cpp -P embed_text.cmake
# defines const std::string_view ringtrue::page::NAME. In pieces, since compilers limit one literal's length.
file(READ ${FILE} text)
if(text MATCHES "\\)ringtrue\"")
  message(FATAL_ERROR "${FILE} holds the mark that ends a literal: choose another one in embed_text.cmake")
endif()
string(LENGTH "${text}" length)
set(literal "")
set(piece 8000)
set(begin 0)
while(begin LESS length)
  string(SUBSTRING "${text}" ${begin} ${piece} part)
  string(APPEND literal "    R\"ringtrue(${part})ringtrue\"\n")
  math(EXPR begin "${begin} + ${piece}")
endwhile()
file(WRITE ${OUT} "#include \"page_texts.hpp\"\n\nnamespace ringtrue::page {\nnamespace {\nconstexpr char text[] =\n"
                  "${literal};\n}  // namespace\n\nconst std::string_view ${NAME}{text, sizeof text - 1};\n\n"
                  "}  // namespace ringtrue::page\n")
