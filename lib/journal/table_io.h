#pragma once
// Rows of the sample tables in and out of statements, in one column order for all of them.
#include <string>
#include <string_view>

#include "journal/database.h"
#include "journal/sample.h"

namespace fw::journal {

/// "INSERT OR REPLACE INTO <table> VALUES(?,...)" for string_minute and string_five, bank_minute and bank_five.
std::string insert_string_sql(std::string_view table);
std::string insert_bank_sql(std::string_view table);
/// "SELECT all columns FROM <table> <rest>".
std::string select_string_sql(std::string_view table, std::string_view rest);
std::string select_bank_sql(std::string_view table, std::string_view rest);

void bind(Statement& s, const StringSample& r);
void bind(Statement& s, const BankSample& r);
StringSample string_sample(const Statement& s);
BankSample bank_sample(const Statement& s);

/// Adds a minute to its string's day.
std::string add_day_sql();
void bind_day(Statement& s, const StringSample& minute);

}  // namespace fw::journal
