"""Documents as blocks of data, and the HTML, PDF, PNG and Markdown made of them."""
