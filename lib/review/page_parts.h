#pragma once
// The page's style, script and chart library, put into the program when it is built.
#include <string_view>

namespace fw::review::page {

std::string_view dygraphs_js();
std::string_view dygraphs_css();
std::string_view page_js();
std::string_view page_css();

}  // namespace fw::review::page
