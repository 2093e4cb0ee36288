# Files into a C++ source: cmake -DPARTS=a;b -DNAMES=x;y -DOUTPUT=out.cpp -P embed.cmake
set(source "#include \"review/page_parts.h\"\n\nnamespace fw::review::page {\n")
foreach(part name IN ZIP_LISTS PARTS NAMES)
  file(READ ${part} hex HEX)
  string(REGEX REPLACE "(..)" "0x\\1," bytes "${hex}")
  string(APPEND source "static const unsigned char ${name}_bytes[] = {${bytes}};\n"
         "std::string_view ${name}() { return {reinterpret_cast<const char*>(${name}_bytes), sizeof ${name}_bytes}; }\n")
endforeach()
file(WRITE ${OUTPUT} "${source}}  // namespace fw::review::page\n")
